"""Pressure between an elastic pad and a surface of any shape: patterned die, rough, wavy.

The pad is elastic and smooth at rest, the surface rigid with height z; the pad is pressed on with a
given mean pressure. Without friction on the normal problem,

    g = W p + d - z >= 0,   p >= 0,   p g = 0,   mean(p) = mean_pressure,

W the pad's elastic response and d its approach. An asperity layer may sit between the two, with
g = lambda ln(p0/p) instead of g = 0 under pressure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from planish.engine.backend import Backend, get_backend
from planish.errors import ModelError, refuse
from planish.physics.contact import kernel as contact_kernel
from planish.physics.contact import layer as contact_layer
from planish.physics.contact import solver as contact_solver
from planish.physics.contact.kernel import Compliance, as_compliance, free_kernel, periodic_kernel
from planish.physics.contact.layer import solve_layer
from planish.physics.contact.operations import Operations
from planish.physics.contact.solver import Operator, solve_bare

SOURCES: tuple[str, ...] = contact_kernel.SOURCES + contact_solver.SOURCES + contact_layer.SOURCES


@dataclass(frozen=True)
class AsperityLayer:
    """A layer of pad summits with exponentially distributed heights: g = lambda ln(p0/p).

    Attributes
    ----------
    reference_pressure
        p0 [Pa], the pressure at zero gap.
    decay_length
        lambda [m], the fall-off length of summit heights.
    """

    reference_pressure: float
    decay_length: float

    def __post_init__(self) -> None:
        for name in ("reference_pressure", "decay_length"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0.0):
                raise ModelError(refuse(f"asperity {name}", value, "above 0"))


@dataclass(frozen=True)
class ContactResult:
    """A solved contact. Arrays live where they were computed (host or device).

    Attributes
    ----------
    pressure
        p [Pa], shape of the surface; its mean is the load's to rounding.
    gap
        g [m], distance from pad to surface (0 in bare contact; through a layer, from the layer's
        reference plane).
    approach
        d [m], height of the undeformed pad over the surface's zero (for a half-space that repeats:
        of the mean plane of the deformed pad).
    contact_fraction
        Share of cells under pressure; through a layer, where all are, (mean p)^2 / mean p^2.
    iterations
        Conjugate-gradient iterations.
    error
        Last error measure: bare, mean gap error under load over the surface's rms height; layer,
        estimated rms relative error of pressure.
    """

    pressure: Any
    gap: Any
    approach: float
    contact_fraction: float
    iterations: int
    error: float


@dataclass(frozen=True)
class Pressed:
    """The bare outcome of a solution.

    Attributes
    ----------
    pressure
        [Pa].
    displacement
        Of the pad (bare contact: [m]; through a layer: in decay lengths).
    approach
        [m].
    iterations, error
        How it went.
    """

    pressure: Any
    displacement: Any
    approach: float
    iterations: int
    error: float


class ContactProblem:
    """A pad and a grid, made ready to press many surfaces (the kernel is built once).

    Parameters
    ----------
    shape
        Grid (ny, nx).
    cell
        Cell size [m], one number or (dy, dx).
    compliance
        Surface compliance C(q) of the pad [m/Pa] as a function of wave number [rad/m], or the
        plane modulus E* [Pa] of a half-space.
    periodic
        Whether the surface repeats (reticle fields side by side) or stands alone.
    asperity
        Layer of summits in series, or None for bare contact.
    dtype
        ``float64`` or ``float32``: precision of pressures and displacements.
    backend
        ``"numpy"``, ``"cupy"`` or a :class:`~planish.engine.backend.Backend`.
    workers
        Host threads; they never change the numbers.

    Raises
    ------
    ModelError
        If a value is outside its range.
    """

    def __init__(
        self,
        shape: tuple[int, int],
        cell: float | tuple[float, float],
        compliance: Compliance | float,
        *,
        periodic: bool = True,
        asperity: AsperityLayer | None = None,
        dtype: Any = np.float64,
        backend: str | Backend = "numpy",
        workers: int | None = None,
    ) -> None:
        self.shape = (int(shape[0]), int(shape[1]))
        steps = (cell, cell) if np.isscalar(cell) else tuple(cell)  # type: ignore[arg-type]
        self.cell = (float(steps[0]), float(steps[1]))  # type: ignore[arg-type]
        if not all(np.isfinite(s) and s > 0.0 for s in self.cell):
            raise ModelError(refuse("cell", cell, "above 0 m"))
        if min(self.shape) < 1:
            raise ModelError(refuse("surface shape", shape, "at least 1 x 1"))
        self.dtype = np.dtype(dtype)
        if self.dtype not in (np.dtype(np.float32), np.dtype(np.float64)):
            raise ModelError(refuse("dtype", str(dtype), "float32 or float64"))
        self.backend = get_backend(backend, workers=workers) if isinstance(backend, str) else backend
        self.asperity = asperity
        build = periodic_kernel if periodic else free_kernel
        kernel = build(self.shape, self.cell, as_compliance(compliance))
        unit = 1.0 if asperity is None else asperity.reference_pressure / asperity.decay_length
        self._unit = unit
        self._last: tuple[float, Operator] | None = None
        self._compliance = compliance
        self._periodic = periodic
        self._coarser: ContactProblem | None = None
        work = np.dtype(np.float32) if asperity is None else self.dtype
        bring = self.backend.asarray
        positive = kernel.inverse[kernel.inverse > 0.0]
        self._operator = Operator(
            backend=self.backend,
            operations=_operations(self.backend),
            multiplier=bring(kernel.multiplier * unit, self.dtype),
            multiplier_work=bring(kernel.multiplier * unit, work),
            inverse=bring(kernel.inverse / unit, work),
            added=None,
            added_work=None,
            shape=kernel.shape,
            padded=kernel.padded,
            stiffness=float(positive.mean()) if positive.size else 0.0,
        )
        self._work = work

    def solve(
        self,
        surface: Any,
        mean_pressure: float,
        *,
        start: Any = None,
        added: Any = None,
        tol: float = 1e-6,
        max_iterations: int = 500,
    ) -> ContactResult:
        """Press the pad on `surface` and return where and how hard it touches.

        Parameters
        ----------
        surface
            Heights z [m], the problem's shape, host or device array.
        mean_pressure
            Load over the area of the grid [Pa].
        start
            Pressures [Pa] of a similar surface, to start from.
        added
            Compliance [m/Pa] in series per cell (or one number), 0 or more; None for none.
        tol
            Error at which to stop (see :class:`ContactResult`).
        max_iterations
            Iterations after which to give up.

        Returns
        -------
        ContactResult
            Pressures, gaps and how it went.

        Raises
        ------
        ModelError
            If a value is outside its range, or the iteration does not reach `tol`.
        """
        xp = self.backend.xp
        z = self.backend.asarray(surface, self.dtype)
        if z.shape == self.shape and not bool(xp.isfinite(z).all()):
            raise ModelError(refuse("surface", "not finite somewhere", "finite heights"))
        if added is not None and not bool((self.backend.asarray(added, self.dtype) >= 0.0).all()):
            raise ModelError(refuse("added compliance", "negative somewhere", "0 m/Pa or more"))
        pressed = self.press(
            z, mean_pressure, start=start, added=added, tol=tol, max_iterations=max_iterations
        )
        p = pressed.pressure
        if self.asperity is None:
            gap = xp.where(p > 0.0, 0.0, xp.maximum(pressed.displacement + pressed.approach - z, 0.0))
            fraction = float((p > 0.0).mean())
        else:
            length, unit = self.asperity.decay_length, self.asperity.reference_pressure
            gap = -length * xp.log(xp.maximum(p, 1e-37 * unit) / unit)
            fraction = float(p.mean(dtype=np.float64)) ** 2 / float((p * p).mean(dtype=np.float64))
        return ContactResult(
            pressure=p,
            gap=gap.astype(self.dtype),
            approach=pressed.approach,
            contact_fraction=fraction,
            iterations=pressed.iterations,
            error=pressed.error,
        )

    def press(
        self,
        surface: Any,
        mean_pressure: float,
        *,
        start: Any = None,
        added: Any = None,
        tol: float = 1e-6,
        max_iterations: int = 500,
    ) -> Pressed:
        """As :meth:`solve`, for arrays known to be sound, without what only a report needs.

        Parameters
        ----------
        surface, mean_pressure, start, added, tol, max_iterations
            As for :meth:`solve`.

        Returns
        -------
        Pressed
            On the device of the problem.

        Raises
        ------
        ModelError
            If a shape or number is outside its range, or the iteration does not reach `tol`.
        """
        z = self.backend.asarray(surface, self.dtype)
        if z.shape != self.shape:
            raise ModelError(refuse("surface shape", z.shape, f"{self.shape}"))
        if not (np.isfinite(mean_pressure) and mean_pressure > 0.0):
            raise ModelError(refuse("mean pressure", mean_pressure, "above 0 Pa"))
        if not 0.0 < tol < 1.0:
            raise ModelError(refuse("tol", tol, "between 0 and 1"))
        if start is not None:
            start = self.backend.asarray(start, self.dtype)
            if start.shape != self.shape:
                raise ModelError(refuse("start shape", start.shape, f"{self.shape}"))
        if added is not None:
            added = self.backend.asarray(added, self.dtype)
            if added.shape not in ((), self.shape):
                raise ModelError(refuse("added shape", added.shape, f"{self.shape} or one number"))
        if start is None:
            start = self._first_guess(z, float(mean_pressure), added)
        solve = self._bare if self.asperity is None else self._layered
        return solve(self._softened(added), z, float(mean_pressure), start, tol, max_iterations)

    def _softened(self, added: Any) -> Operator:
        """Return the operator with a compliance added in series: one number joins the kernel itself."""
        if added is None:
            return self._operator
        if added.ndim == 0:
            # the last one is kept: a march of equal steps asks for the same again and again
            key = float(added)
            if self._last is None or self._last[0] != key:
                self._last = (key, self._with_mean(key, uniform=True))
            return self._last[1]
        soft = self._with_mean(float(added.mean()), uniform=False)
        soft.added = added * self.dtype.type(self._unit)
        soft.added_work = soft.added.astype(self._work, copy=False)
        return soft

    def _with_mean(self, added: float, *, uniform: bool) -> Operator:
        operator, c = self._operator, added * self._unit
        soft = replace(operator, stiffness=operator.stiffness / (1.0 + c * operator.stiffness))
        if self.asperity is None or operator.padded != operator.shape:
            soft.inverse = operator.inverse / (1.0 + self._work.type(c) * operator.inverse)
        if uniform:
            soft.multiplier = operator.multiplier + self.dtype.type(c)
            soft.multiplier_work = operator.multiplier_work + self._work.type(c)
        return soft

    def _first_guess(self, z: Any, mean_pressure: float, added: Any) -> Any:
        """Pressures to start from: those of every fourth cell on large grids, else uniform.

        A uniform start spends half its iterations on shrinking the contact; the coarse grid does
        that at a sixteenth of the cost.
        """
        xp, f = self.backend.xp, 4
        if self.asperity is not None or min(self.shape) < 512 or any(n % f for n in self.shape):
            return xp.full(self.shape, mean_pressure, dtype=self.dtype)
        if self._coarser is None:
            shape, cell = (self.shape[0] // f, self.shape[1] // f), (f * self.cell[0], f * self.cell[1])
            self._coarser = ContactProblem(
                shape, cell, self._compliance, periodic=self._periodic, dtype=self.dtype, backend=self.backend
            )
        coarse = xp.ascontiguousarray(z[::f, ::f])
        mean = None if added is None else float(added.mean())
        p = self._coarser.press(coarse, mean_pressure, added=mean, tol=0.02).pressure
        # each coarse value stands for the four-by-four cells around its own
        return xp.roll(p.repeat(f, 0).repeat(f, 1), (-(f // 2), -(f // 2)), (0, 1))

    def _bare(
        self, operator: Operator, z: Any, mean_pressure: float, start: Any, tol: float, limit: int
    ) -> Pressed:
        centre = float(z.mean())
        z = z - self.dtype.type(centre)
        solved = solve_bare(
            operator,
            z,
            mean_pressure,
            start,
            tol=tol,
            max_iterations=limit,
            height_scale=float(z.std()) or 1.0,
            work_dtype=self._work,
        )
        return Pressed(
            solved.pressure, solved.displacement, centre - solved.level, solved.iterations, solved.error
        )

    def _layered(
        self, operator: Operator, z: Any, mean_pressure: float, start: Any, tol: float, limit: int
    ) -> Pressed:
        assert self.asperity is not None
        cast = self.dtype.type
        length, unit = self.asperity.decay_length, self.asperity.reference_pressure
        centre = float(z.mean())
        surface = z - cast(centre)
        surface *= cast(1.0 / length)
        solved = solve_layer(
            operator,
            surface,
            mean_pressure / unit,
            start * cast(1.0 / unit),
            tol=tol,
            max_iterations=limit,
        )
        p, u = solved.pressure, solved.displacement
        p *= cast(unit)
        return Pressed(p, u, centre + length * solved.approach, solved.iterations, solved.error)


def _operations(backend: Backend) -> Operations:
    if backend.name == "cupy":
        from planish.physics.contact.gpu import DeviceOperations

        return DeviceOperations()
    from planish.physics.contact.cpu import HostOperations

    return HostOperations(backend.workers)
