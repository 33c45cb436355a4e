"""The SI records in words: what each is, with its headline figures in the units of the trade."""

from __future__ import annotations

from functools import singledispatch

from planish import units
from planish.engine.record import counted, figure, shortened
from planish.setup import si
from planish.setup.processes import PROCESSES
from planish.units import PSI, RPM, ZERO_CELSIUS


@singledispatch
def words(record: si.SiRecord) -> str:
    """Return a record in a few words."""
    raise TypeError(f"{type(record).__name__} has no words")


@words.register
def _rig(it: si.Rig) -> str:
    return (
        f"{shortened(it.title, 60)!r}, {it.polisher.motion}, {_films(it.wafer)}, pad {it.pad.family}, "
        f"slurry {shortened(it.slurry.name, 30)}, {counted(len(it.steps), 'step')}"
    )


@words.register
def _wafer(it: si.Wafer) -> str:
    return f"{_films(it)}, edge exclusion {figure(1e3 * it.edge_exclusion, 'mm')}"


def _films(wafer: si.Wafer) -> str:
    names = shortened(", ".join(film.name for film in wafer.films), 60)
    return f"wafer {figure(2e3 * wafer.radius, 'mm')} with {names}"


@words.register
def _film(it: si.Film) -> str:
    how = "a radial profile" if it.profile is not None else "measured sites" if it.sites is not None else ""
    return f"{it.name} ({it.material}), {figure(1e9 * it.thickness, 'nm')}{' from ' + how if how else ''}"


@words.register
def _ring(it: si.Ring) -> str:
    return f"{figure(1e3 * it.width, 'mm')} wide, {figure(1e3 * it.gap, 'mm')} from the wafer"


@words.register
def _head(it: si.Head) -> str:
    zones = counted(it.zone_outer_radii.size, "zone")
    return f"{zones}, {'no retaining ring' if it.ring is None else f'ring {_ring(it.ring)}'}"


@words.register
def _layer(it: si.Layer) -> str:
    return f"{figure(1e-6 * it.modulus, 'MPa')}, Poisson {it.poisson:.3g}, {figure(1e3 * it.thickness, 'mm')}"


@words.register
def _grooves(it: si.Grooves) -> str:
    if it.pattern == "none":
        return "none"
    width, depth, pitch = (f"{1e3 * size:.3g}" for size in (it.width, it.depth, it.pitch))
    return f"{it.pattern}, {width} mm wide, {depth} mm deep, every {pitch} mm"


@words.register
def _surface(it: si.PadSurface) -> str:
    heights = "" if it.heights is None else f", {it.heights.size} measured heights"
    return (
        f"{figure(1e-6 * it.density, 'summits/mm2')}, tips {figure(1e6 * it.tip_radius, 'um')}, "
        f"heights {figure(1e6 * it.height_sd, 'um')} (sd), tail {figure(1e6 * it.tail_length, 'um')}{heights}"
    )


@words.register
def _pad(it: si.Pad) -> str:
    stack = " on ".join(
        f"{1e3 * layer.thickness:.3g} mm of {1e-6 * layer.modulus:.3g} MPa" for layer in it.layers
    )
    return f"{it.family}, {stack}, grooves {_grooves(it.grooves)}"


@words.register
def _sweep(it: si.Sweep) -> str:
    table = "" if it.zone_dwell is None else f", dwell table of {counted(it.zone_dwell.size, 'zone')}"
    return f"{it.kind}, {1e3 * it.inner:.4g} to {1e3 * it.outer:.4g} mm, {figure(60 * it.frequency, '1/min')}{table}"


@words.register
def _conditioner(it: si.Conditioner) -> str:
    return (
        f"{it.kind}, disk {figure(2e3 * it.disk_radius, 'mm')}, grit {figure(1e6 * it.grit_size, 'um')}, "
        f"{figure(it.downforce, 'N')}, {figure(it.speed / RPM, 'rpm')}, {it.mode}"
    )


@words.register
def _slurry(it: si.Slurry) -> str:
    return (
        f"{shortened(it.name, 40)}, {it.abrasive} {figure(100 * it.abrasive_fraction, '% by weight')}, "
        f"{figure(1e9 * it.particle_size, 'nm')}, {figure(1e3 * it.viscosity, 'mPa s')}"
    )


@words.register
def _reference(it: si.Reference) -> str:
    return f"{figure(it.pressure / PSI, 'psi')}, {figure(it.speed, 'm/s')}, {figure(it.temperature - ZERO_CELSIUS, '°C')}"


@words.register
def _removal(it: si.Removal) -> str:
    numbers = ", ".join(f"{name} {value:.4g}" for name, value in it.coefficients.items())
    return f"{it.material} by the law {it.law!r}, {shortened(numbers, 90)} (SI), calibrated at {_reference(it.reference)}"


@words.register
def _step(it: si.Step) -> str:
    low, high = float(it.zone_pressures.min()) / PSI, float(it.zone_pressures.max()) / PSI
    zones = f"{low:.3g} psi" if low == high else f"{low:.3g} to {high:.3g} psi"
    speed = next(
        (
            f"{name} {figure(value / scale, unit)}"
            for name, value, scale, unit in (
                ("platen", it.platen_speed, RPM, "rpm"),
                ("belt", it.belt_speed, 1.0, "m/s"),
                ("orbit", it.orbit_speed, RPM, "rpm"),
            )
            if value
        ),
        "pad at rest",
    )
    stop = {
        "time": f"for {figure(it.stop_value, 's')}",
        "removed": f"until {figure(1e9 * it.stop_value, 'nm')} are removed",
        "remaining": f"until {figure(1e9 * it.stop_value, 'nm')} are left",
    }[it.stop]
    ring = figure(it.ring_pressure / PSI, "psi")
    return (
        f"{shortened(it.name, 40)}, {stop}, {zones}, ring {ring}, {speed}, {figure(6e7 * it.flow, 'ml/min')}"
    )


@words.register
def _ambient(it: si.Ambient) -> str:
    return (
        f"room {it.temperature - ZERO_CELSIUS:.4g} °C, platen {it.platen_temperature - ZERO_CELSIUS:.4g} °C"
    )


@words.register
def _die(it: si.Die) -> str:
    known = PROCESSES.get(it.process).level.known_keys()
    given = [
        f"{name.replace('_', ' ')} {units.show(value, what.dimension)}"
        for name, value in it.given.items()
        if (what := known[name].quantity) is not None and isinstance(value, float)
    ]
    return shortened(", ".join([it.process, *given]), 120)
