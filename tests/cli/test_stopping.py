"""The first signal asks, the second interrupts, and afterwards all is as before."""

from __future__ import annotations

import signal

import pytest

from bench.cli.stopping import StopSwitch


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_first_asks_second_interrupts(number: signal.Signals) -> None:
    before = signal.getsignal(number)
    with StopSwitch() as stop:
        assert not stop()
        signal.raise_signal(number)
        assert stop()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(number)
    assert signal.getsignal(number) is before


def test_an_ignored_signal_stays_ignored() -> None:
    before = signal.signal(signal.SIGTERM, signal.SIG_IGN)
    try:
        with StopSwitch() as stop:
            signal.raise_signal(signal.SIGTERM)
            assert not stop()
    finally:
        signal.signal(signal.SIGTERM, before)
