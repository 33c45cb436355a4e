"""Constrained conjugate gradients for bare elastic contact.

Find p >= 0 of given mean with gap g = A p - z + d >= 0 and p g = 0, A the elastic operator plus an
optional per-cell compliance. Projected conjugate gradients in the manner of Polonsky and Keer,
with three additions of our own:

* the residual is preconditioned with the inverse elastic operator in Fourier space, masked to the
  contact and freed of its mean there;
* displacements are carried along the step instead of being recomputed, and what clipping adds is
  transformed on its own; the long transforms may then run in single precision while pressures and
  displacements stay in double, refreshed whenever convergence is to be declared;
* cells that come into contact enter at the pressure that the inverse operator's diagonal gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from planish.engine.backend import Backend
from planish.errors import ModelError, refuse
from planish.physics.contact.operations import Operations

SOURCES: tuple[str, ...] = (
    "Polonsky & Keer 1999, Wear 231, 206: constrained conjugate gradients (read as quoted in the ContactMechanics "
    "library)",
    "Stanley & Kato 1997, J. Tribology 119, 481: elastic contact by FFT (read as quoted in the ContactMechanics "
    "library)",
    "preconditioner and mixed-precision updates: derivation of our own",
)

ENTRY = 0.05
"""Share of the inverse operator's diagonal at which a penetrating cell enters the contact. Whole
patches enter at once and help each other, so the full diagonal overshoots and can cycle; 0.02 to
0.15 all converge alike on rough surfaces from 0.2 % to 60 % load."""


@dataclass
class Operator:
    """A p = W p + c p on one grid, in working and in full precision."""

    backend: Backend
    operations: Operations
    multiplier: Any  # full precision, padded half-spectrum
    multiplier_work: Any  # working precision
    inverse: Any  # working precision, half-spectrum of the unpadded grid
    added: Any  # per-cell compliance [m/Pa] or None
    added_work: Any
    shape: tuple[int, int]
    padded: tuple[int, int]
    stiffness: float  # diagonal of the inverse [Pa/m]

    def _convolve(self, field: Any, multiplier: Any, added: Any) -> Any:
        backend = self.backend
        if self.padded != self.shape:
            grid = backend.xp.zeros(self.padded, dtype=field.dtype)
            grid[: self.shape[0], : self.shape[1]] = field
        else:
            grid = field
        spectrum = backend.rfft2(grid)
        self.operations.scale(spectrum, multiplier)
        result = backend.irfft2(spectrum, self.padded)
        if self.padded != self.shape:
            result = backend.xp.ascontiguousarray(result[: self.shape[0], : self.shape[1]])
        if added is not None:
            self.operations.add_product(result, added, field)
        return result

    def apply(self, field: Any) -> Any:
        """Return A p in full precision.

        Parameters
        ----------
        field
            p [Pa], of the grid's shape.

        Returns
        -------
        Any
            [m].
        """
        return self._convolve(field, self.multiplier, self.added)

    def elastic(self, field: Any) -> Any:
        """Return W p in full precision, without the added compliance.

        Parameters
        ----------
        field
            p [Pa], of the grid's shape.

        Returns
        -------
        Any
            [m].
        """
        return self._convolve(field, self.multiplier, None)

    def apply_work(self, field: Any) -> Any:
        """Return A p in working precision.

        Parameters
        ----------
        field
            p [Pa], of the grid's shape.

        Returns
        -------
        Any
            [m].
        """
        return self._convolve(field, self.multiplier_work, self.added_work)

    def precondition(self, field: Any) -> Any:
        """Return the approximate inverse in working precision.

        Parameters
        ----------
        field
            It is applied to, of the grid's shape [m].

        Returns
        -------
        Any
            [Pa].
        """
        spectrum = self.backend.rfft2(field)
        self.operations.scale(spectrum, self.inverse)
        return self.backend.irfft2(spectrum, self.shape)


@dataclass
class Solved:
    """What the iteration found: pressure, displacement A p, mean gap over the contact, its course."""

    pressure: Any
    displacement: Any
    level: float
    iterations: int
    error: float


def solve_bare(
    operator: Operator,
    surface: Any,
    mean_pressure: float,
    start: Any,
    *,
    tol: float,
    max_iterations: int,
    height_scale: float,
    work_dtype: Any,
    trace: list[tuple[float, ...]] | None = None,
) -> Solved:
    """Solve bare contact.

    Parameters
    ----------
    operator
        The pad on the grid.
    surface
        Heights z [m], of the grid's shape.
    mean_pressure
        Load over the area of the grid [Pa].
    start
        First pressures (positive somewhere; scaled to the load).
    tol
        Error at which to stop.
    max_iterations
        Iterations after which to give up.
    height_scale
        The surface's roughness [m].
    work_dtype
        Of the working precision.
    trace
        Gets (iteration, error, share in contact) of every iteration, if given.

    Returns
    -------
    Solved
        Pressures, displacements and how it went.

    Raises
    ------
    ModelError
        If `max_iterations` pass without reaching `tol`.

    Notes
    -----
    The error is sum p |g - <g>| / (height_scale * sum p), the mean gap error under the load relative to the
    surface's roughness.
    """
    xp = operator.backend.xp
    ops = operator.operations
    cells = surface.size
    load = mean_pressure * cells
    p = start.copy()
    p *= load / float(p.sum())
    u = operator.apply(p)
    touching, gap_sum = ops.gap_sums(p, u, surface)
    r = xp.zeros(surface.shape, dtype=work_dtype)
    r_old = xp.zeros_like(r)
    t = xp.zeros_like(r)
    d = xp.zeros_like(r)
    previous = 0.0
    fresh = True
    norm = height_scale * load
    error = best = float("inf")
    entry = ENTRY * operator.stiffness
    for iteration in range(max_iterations):
        mean_gap = gap_sum / touching
        total, _ = ops.residual(p, u, surface, mean_gap, r)
        error = total / norm
        if trace is not None:
            trace.append((iteration, error, touching / cells))
        if error < tol:
            if fresh:
                return Solved(p, u, mean_gap, iteration, error)
            # declared in working precision: check with the displacement computed anew
            u = operator.apply(p)
            touching, gap_sum = ops.gap_sums(p, u, surface)
            mean_gap = gap_sum / touching
            total, _ = ops.residual(p, u, surface, mean_gap, r)
            error = total / norm
            fresh = True
            if error < tol:
                return Solved(p, u, mean_gap, iteration, error)
        s = operator.precondition(r)
        s_sum, s_r, s_old, old_sum = ops.direction_sums(p, s, r, r_old)
        s_mean = s_sum / touching
        gamma = s_r
        beta = 0.0
        best = min(best, error)
        if error > 4.0 * best and error > 100.0 * tol:
            # the active set is cycling: forget the direction and let cells in more gently
            best = error
            entry *= 0.25
        elif previous > 0.0:
            beta = max(0.0, (gamma - (s_old - s_mean * old_sum)) / previous)
        ops.direction(p, s, s_mean, beta, t)
        previous = gamma
        q = operator.apply_work(t)
        q_sum, q_t, t_sum, r_t = ops.curvature_sums(p, q, t, r)
        curvature = q_t - q_sum / touching * t_sum
        alpha = r_t / curvature if curvature > 0.0 else 0.0
        p_sum, clipped, entered = ops.step(p, u, surface, mean_gap, t, alpha, entry, d)
        changed = clipped + entered > 0.0
        w = operator.apply_work(d) if changed else d
        touching, gap_sum = ops.finish(p, u, surface, q, alpha, w, changed, load / p_sum)
        fresh = False
        r, r_old = r_old, r
    raise ModelError(
        refuse("contact error", error, f"below {tol:g} within {max_iterations} iterations", "looser tol")
    )
