"""All experiments, in the order of the docs: rate, slurry, pad, die."""

from __future__ import annotations

from planish.experiments import (
    content,
    dishing_by_width,
    disk_cut_rates,
    drift,
    flattened_summits,
    flow,
    grain_size,
    inhibitor,
    overpolish,
    pad_life,
    pressure_and_speed,
    threshold,
    trench_dishing,
    worn_disk,
    worn_summits,
)
from planish.experiments.record import Experiment

EXPERIMENTS: tuple[Experiment, ...] = (
    pressure_and_speed.EXPERIMENT,
    threshold.EXPERIMENT,
    grain_size.SMALL,
    grain_size.LARGE,
    content.EXPERIMENT,
    inhibitor.EXPERIMENT,
    flow.USE,
    flow.RATE,
    worn_summits.EXPERIMENT,
    flattened_summits.EXPERIMENT,
    disk_cut_rates.EXPERIMENT,
    worn_disk.EXPERIMENT,
    pad_life.EXPERIMENT,
    drift.EXPERIMENT,
    dishing_by_width.EXPERIMENT,
    overpolish.EXPERIMENT,
    trench_dishing.EXPERIMENT,
)
