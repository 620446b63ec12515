from __future__ import annotations


def sensor_uv(sensor, word):
    return None
