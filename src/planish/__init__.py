"""Chemical-mechanical planarization: predict, measure, fit and explain, from one setup file."""

from __future__ import annotations

__version__ = "0.1.0"
