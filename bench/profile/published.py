"""Published limits as data, each with its source and how sure we are of it.

They make `profile check` warn, never refuse, and the judge does not know them:
the maker's documents and local codes govern.  The full texts of the standards
are sold and were not at hand, so no clause is cited.

Certainty: `S` seen in a public source; `S2` seen only at second hand; `C`
worked out here; `M+`, `M?` from memory, with high or low confidence, the text was not seen.
"""

from __future__ import annotations

from dataclasses import dataclass

GOVERNS = "the maker's documents and local codes govern"

IN_WORDS = {
    "S": "seen in a public source",
    "S2": "seen at second hand only",
    "C": "worked out here",
    "M+": "from memory, not confirmed",
    "M?": "from memory, doubtful",
}


@dataclass(frozen=True, slots=True)
class Published:
    """A published figure or practice.  `value` is in `unit`; practice has neither."""

    says: str
    source: str
    certainty: str
    value: float | None = None
    unit: str | None = None

    def __str__(self) -> str:
        return f"published: {self.says} ({self.source}; {IN_WORDS[self.certainty]})"


HOLD_AT_LEAST = Published(
    "mitigation goes on for at least 5 min after the leak",
    "ASHRAE 15-2019 as told by trade documents", "S2", 300.0, "s",
)  # fmt: skip
TRIP_AT_MOST = Published(
    "the set point is at most 25 % of the LFL",
    "IEC 60335-2-40:2018 and UL 60335-2-40 edition 4 as told by makers' summaries", "S2", 25.0, "%LFL",
)  # fmt: skip
DETECTED_WITHIN = Published(
    "the whole system, sensor included, answers 25 % of the LFL within 30 s",
    "AHRI update of 9 April 2020, quoted by EFCTC on 2 May 2020", "S", 30.0, "s",
)  # fmt: skip
STARTED_WITHIN = Published(
    "mitigation begins within 15 s of the detector's output",
    "remembered of ASHRAE 15-2022", "M?", 15.0, "s",
)  # fmt: skip
LEAK_PRACTICE = Published(
    "on a leak the compressor and electric heat go off and the fan comes on",
    "UL on 60335-2-40 edition 4, and trade documents", "S2",
)  # fmt: skip
HOLD_PRACTICE = Published(
    "after a leak the heat stays off and the fan on for at least 5 min",
    "ASHRAE 15-2019 as told by trade documents", "S2",
)  # fmt: skip
FAULT_PRACTICE = Published(
    "the fan runs when the detector fails its own check",
    "remembered of ASHRAE 15-2019", "M+",
)  # fmt: skip
DETECTED_IN_PLUNGE = Published(
    "under edition 3 a detector plunged into gas at 100 % of the LFL answers within 10 s",
    "Purdue IRACC paper 2146 on UL 60335-2-40 edition 3", "S", 10.0, "s",
)  # fmt: skip
DAMPER_PRACTICE = Published(
    "on a leak zone dampers are driven fully open, whatever their zone calls for",
    "remembered of ASHRAE 15-2019", "M+",
)  # fmt: skip
COMPRESSOR_ON_FAULT = Published(
    "the compressor is stopped while the detector has failed; listings differ",
    "remembered of UL 60335-2-40", "M?",
)  # fmt: skip
LOSS_NOTICED = Published(
    "a detector that has failed or is disconnected is noticed and answered like a leak by the fan",
    "remembered of ASHRAE 15-2019", "M+",
)  # fmt: skip
START_UP_PRACTICE = Published(
    "until the detector is ready the fan runs or the compressor and the heat stay off",
    "remembered of UL 60335-2-40", "M?",
)  # fmt: skip
