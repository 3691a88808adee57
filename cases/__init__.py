"""Worked cases that ship with the program."""
