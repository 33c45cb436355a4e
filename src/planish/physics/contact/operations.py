"""The per-cell work of the contact solvers: what each operation does, whoever runs it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any

SUMS = {
    "gap_sums": 2, "residual": 2, "direction_sums": 4, "direction": 0, "curvature_sums": 4, "step": 3,
    "finish": 2, "add_product": 0, "scale": 0, "law": 6, "slope_sums": 3, "gradient": 3, "search": 2,
}  # fmt: skip
"""How many sums each operation leaves."""


class Operations(ABC):
    """Fused operations on the arrays of one device; each returns its sums as Python floats.

    A device brings one compiled loop for each name in :data:`SUMS`, with the arguments in the order in which
    they are handed on here.
    """

    @abstractmethod
    def _cells(self, name: str, *arguments: Any) -> list[float]:
        """Run an operation over all cells of the first argument."""

    @abstractmethod
    def _rows(self, name: str, *arguments: Any) -> list[float]:
        """Run an operation over a half-spectrum, shaped as the first argument, row by row."""

    def gap_sums(self, p: Any, u: Any, z: Any) -> list[float]:
        """Count the cells in contact, and sum u - z over them.

        Parameters
        ----------
        p, u, z
            Pressure, displacement and height per cell.

        Returns
        -------
        list[float]
            The two sums.
        """
        return self._cells("gap_sums", p, u, z)

    def residual(self, p: Any, u: Any, z: Any, mean_gap: float, r: Any) -> list[float]:
        """Set r to the gap less its mean over the contact.

        Parameters
        ----------
        p, u, z
            Pressure, displacement and height per cell.
        mean_gap
            Over the contact.
        r
            Filled in place.

        Returns
        -------
        list[float]
            Sum p |gap|, and cells about to come in.
        """
        return self._cells("residual", p, u, z, float(mean_gap), r)

    def direction_sums(self, p: Any, s: Any, r: Any, r_old: Any) -> list[float]:
        """Sum s, s r, s r_old and r_old over the contact.

        Parameters
        ----------
        p, s, r, r_old
            Pressure, preconditioned residual, residual and the one before, per cell.

        Returns
        -------
        list[float]
            The four sums.
        """
        return self._cells("direction_sums", p, s, r, r_old)

    def direction(self, p: Any, s: Any, mean: float, beta: float, t: Any) -> None:
        """Set t to s - mean + beta t over the contact, zero elsewhere.

        Parameters
        ----------
        p, s
            Pressure and preconditioned residual per cell.
        mean
            Of s over the contact.
        beta
            Share of the last direction.
        t
            Changed in place.
        """
        real = t.dtype.type
        self._cells("direction", p, s, real(mean), real(beta), t)

    def curvature_sums(self, p: Any, q: Any, t: Any, r: Any) -> list[float]:
        """Sum q, q t, t and r t over the contact.

        Parameters
        ----------
        p, q, t, r
            Pressure, A t, direction and residual per cell.

        Returns
        -------
        list[float]
            The four sums.
        """
        return self._cells("curvature_sums", p, q, t, r)

    def step(
        self, p: Any, u: Any, z: Any, mean_gap: float, t: Any, alpha: float, stiffness: float, d: Any
    ) -> list[float]:
        """Take a projected step of the pressure.

        Parameters
        ----------
        p
            Pressure per cell, changed in place.
        u, z
            Displacement and height per cell.
        mean_gap
            Over the contact.
        t
            Direction per cell.
        alpha
            Length of the step.
        stiffness
            At which a penetrating cell enters the contact.
        d
            Filled with what clipping and entering add.

        Returns
        -------
        list[float]
            Its sum, cells clipped, cells entered.
        """
        return self._cells("step", p, u, z, float(mean_gap), t, float(alpha), float(stiffness), d)

    def finish(
        self, p: Any, u: Any, z: Any, q: Any, alpha: float, w: Any, use_w: bool, scale: float
    ) -> list[float]:
        """Update the displacement and scale to the load.

        Parameters
        ----------
        p, u
            Pressure and displacement per cell, changed in place.
        z
            Height per cell.
        q
            A t per cell.
        alpha
            Length of the step.
        w
            Displacement by what clipping and entering add.
        use_w
            Whether to add it.
        scale
            To the load.

        Returns
        -------
        list[float]
            As of :meth:`gap_sums`.
        """
        return self._cells("finish", p, u, z, q, float(alpha), w, bool(use_w), float(scale))

    def add_product(self, y: Any, c: Any, x: Any) -> None:
        """Add c x to y.

        Parameters
        ----------
        y
            Changed in place.
        c, x
            Per cell.
        """
        self._cells("add_product", y, c, x)

    def scale(self, spectrum: Any, factor: Any) -> None:
        """Multiply a spectrum by real factors.

        Parameters
        ----------
        spectrum
            Changed in place.
        factor
            Of its shape.
        """
        self._rows("scale", spectrum, factor)

    def law(self, z: Any, u: Any, t: Any, alpha: float, d: float, c: Any, p: Any, u_new: Any) -> list[float]:
        """Find the pressures of the layer at u + alpha t.

        Parameters
        ----------
        z, u, t
            Height, displacement and its direction per cell, in units of the layer.
        alpha
            Length of the step.
        d
            Approach.
        c
            Compliance in series per cell, or None.
        p, u_new
            Filled in place.

        Returns
        -------
        list[float]
            Sums of p, k, p t, k t, k t^2, k^2 (k = dp/db).
        """
        return self._cells("law", z, u, t, float(alpha), float(d), c, p, u_new)

    def slope_sums(self, p: Any, t: Any, c: Any) -> list[float]:
        """Sum p t, k t and k t^2.

        Parameters
        ----------
        p, t
            Pressure and direction of the displacement per cell.
        c
            Compliance in series per cell, or None.

        Returns
        -------
        list[float]
            The three sums.
        """
        return self._cells("slope_sums", p, t, c)

    def gradient(
        self, P: Any, s: Any, t: Any, alpha: float, m: Any, w: Any, kappa: float, even: bool
    ) -> list[float]:
        """Find the preconditioned gradient in the half-spectrum.

        Parameters
        ----------
        P
            Spectrum of the pressure.
        s, t
            Spectra of the pressure-like field and its direction; ``s`` is changed in place.
        alpha
            Length of the last step.
        m
            Filled in place.
        w
            Multiplier of the pad.
        kappa
            Mean stiffness of the layer.
        even
            Whether the grid has an even number of columns.

        Returns
        -------
        list[float]
            Sums <e,wm>, <e,w m_old>, <wm,wm>.
        """
        real = w.dtype.type
        return self._rows("gradient", P, s, t, real(alpha), m, w, real(kappa), bool(even))

    def search(self, s: Any, t: Any, m: Any, beta: float, w: Any, T: Any, even: bool) -> list[float]:
        """Find the new search direction and its displacement spectrum.

        Parameters
        ----------
        s, t, m
            Spectra of the field, its direction (changed in place) and the preconditioned gradient.
        beta
            Share of the last direction.
        w
            Multiplier of the pad.
        T
            Filled with the displacement spectrum.
        even
            Whether the grid has an even number of columns.

        Returns
        -------
        list[float]
            Sums <s,wt>, <t,wt>.
        """
        return self._rows("search", s, t, m, w.dtype.type(beta), w, T, bool(even))
