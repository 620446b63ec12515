"""The fixture image's stamps against the truth, its ring under load, and how long a run takes: the long forms.

    python -m tests.performance.cosim_stamps [--edges 10000] [--minutes 10]

10,000 stamps with the clock half a percent off either way and drifting by 30
ppm; 200 edges a second for ten minutes.  Exit code 0 if all stamps hold their
edges and no edge is lost or doubled.
"""

from __future__ import annotations

import argparse
import sys
import time

from tests.cosim import toolchain
from tests.cosim.host import Host
from tests.cosim.load import steady
from tests.cosim.stamps import MOST_HALF_WIDTH, Stamps
from tests.cosim.wiring import Conditions


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("--edges", type=int, default=10_000)
    options.add_argument("--minutes", type=float, default=10.0)
    asked = options.parse_args()
    toolchain.needed()
    bad = 0
    rounds = -(-asked.edges // 24)  # six stamps a round, four courses
    for seed, (ppm, drift) in enumerate(((5_000, 25), (5_000, -25), (-5_000, 25), (-5_000, -25))):
        conditions = Conditions(seed=seed, fixture_ppm=ppm, fixture_drift_ppm_a_minute=drift)
        stamps = Stamps(conditions)
        result = stamps.course(rounds)
        bad += len(result.outside)
        minutes = stamps.sim.now / 60e9
        print(f"clock {ppm:+} ppm, drift {drift * minutes:+.0f} ppm in {minutes:.1f} min: {result.checked.total()} stamps, "
              f"{len(result.outside)} outside; widest half-widths {result.widest} us", flush=True)  # fmt: skip
        bad += sum(widest > MOST_HALF_WIDTH[kind] for kind, widest in result.widest.items())
        for sentence in result.outside[:10]:
            print(f"  {sentence}")
    began = time.process_time()
    made, told, doubled = steady(Host(Conditions(seed=1)), 200, asked.minutes * 60)
    bad += made != told or doubled > 0
    print(f"200 edges a second for {asked.minutes:g} min: {sum(made.values())} made, {sum(told.values())} told, "
          f"{doubled} twice; {time.process_time() - began:.0f} s of processor time")  # fmt: skip
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
