"""Geometry of a braced top: from a drawing to a named triangulation."""
