"""How well a plan predicts the intervals that simulated drives then give.

Prints, by GPS rate and kind of figure, the median over drives of obtained over predicted
half-width, the middle half of it, and the predicted half-width in SI.

Run as `python tests/benchmarks/planning.py [drives [Hz ...]]`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.plan.trials import compared, gearing_compared

RATES_HZ = (1.0, 5.0, 10.0)


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 6
    rates = [float(rate) for rate in sys.argv[2:]] or RATES_HZ
    for rate in rates:
        ratios: dict[str, list[float]] = {}
        sizes: dict[str, list[float]] = {}
        for seed in range(count):
            pairs = (compared(900 + seed, rate), gearing_compared(900 + seed, rate))
            predicted = {name: width for pair in pairs for name, width in pair[0].items()}
            obtained = {name: width for pair in pairs for name, width in pair[1].items()}
            for name in predicted.keys() & obtained.keys():
                ratios.setdefault(name, []).append(obtained[name] / predicted[name])
                sizes.setdefault(name, []).append(predicted[name])
        print(f"{rate:g} Hz, {count} drives: obtained over predicted half-width")
        for name, values in sorted(ratios.items()):
            low, middle, high = np.quantile(values, (0.25, 0.5, 0.75))
            size = float(np.median(sizes[name]))
            print(f"  {name:20s} {middle:5.2f}   ({low:.2f} to {high:.2f})   {size:.3g}")


if __name__ == "__main__":
    main()
