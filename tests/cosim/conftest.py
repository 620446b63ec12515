"""Skips everything here, with one sentence, where the co-simulation cannot be built."""

from __future__ import annotations

import pytest

from tests.cosim import toolchain


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    lacks = toolchain.missing()
    for item in items:
        if "cosim" in item.path.parts:
            # Compilers are no part of the quick tests, which need nothing but pip.
            item.add_marker(pytest.mark.slow)
            if lacks is not None:
                item.add_marker(pytest.mark.skip(reason=lacks))
