"""What figures read of an answer's data: numbers and texts of a variable."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import xarray as xr


def values(data: xr.Dataset, name: str) -> NDArray[np.float64]:
    """Return the numbers of a variable.

    Parameters
    ----------
    data : Dataset
        An answer's data.
    name : str
        The variable.

    Returns
    -------
    array
        Its values as doubles, in its own shape and unit.
    """
    return np.asarray(data[name].values, dtype=np.float64)


def texts(data: xr.Dataset, name: str) -> list[str]:
    """Return the texts of a variable; a file may give them back as bytes.

    Parameters
    ----------
    data : Dataset
        An answer's data.
    name : str
        The variable, of one dimension.

    Returns
    -------
    list of str
        One text an entry.
    """
    return [one.decode() if isinstance(one, bytes) else str(one) for one in data[name].values]
