"""An invented setup with prices, whose cost a wafer can be worked by hand."""

from __future__ import annotations

# Steps of 10 s, 60 s and 15 s at 250, 250 and 300 ml/min.
TIMED = {
    "recipe.step.main.stop_on_removed": None,
    "recipe.step.main.max_time": None,
    "recipe.step.main.time": "60 s",
}
SAID = {
    "currency": "EUR",
    "pad_price": 490,
    "pad_wafers": 100,
    "disk_price": 392,
    "disk_wafers": 200,
    "ring_price": 98,
    "ring_wafers": 400,
    "membrane_price": 147,
    "membrane_wafers": 500,
    "slurry_price": 4,
    "hour_price": 180,
    "monitor_price": 49,
    "monitors": 2,
    "between": "35 s",
    "pad_change": "30 min",
    "disk_change": "10 min",
    "head_change": "20 min",
}
