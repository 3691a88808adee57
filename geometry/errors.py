"""The four named errors; each message is one line: where, what was found, what is allowed."""


class BracedTopError(Exception):
    """Base of every error that the program reports to its user."""


class DesignError(BracedTopError):
    """A size, position or wood of the design cannot be built."""


class FileError(BracedTopError):
    """A file cannot be read, or a key or line in it is wrong."""


class MeshError(BracedTopError):
    """The design cannot be triangulated, or the triangulation differs from the design."""


class AccuracyError(BracedTopError):
    """A numerical result misses its own check."""
