"""All experiments, in the order of the docs: rate, slurry, pad."""

from __future__ import annotations

from planish.experiments import (
    content,
    flow,
    grain_size,
    inhibitor,
    pressure_and_speed,
    threshold,
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
)
