"""The version of this package; kept apart so that files can name it without loading anything."""

__version__ = "0.2.0"
