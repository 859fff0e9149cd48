"""How often a campaign's stated 95 % intervals hold the generating ratio, on fresh benches.

Every declared input is drawn afresh from its declared distribution (`draw_truth`); a ratio is held
when the generating value of its scope lies inside. Run: ``python tests/benchmarks/campaign_coverage.py 150``.

Measured on 150 benches, two housings each (s.e. 1.3 points if the housings share nothing):
specimens 94.7-97.7 % (K3/K4 97.7: their mountings scatter by 2.0 %, less than the campaign's pool), models
92.0-94.7 %.
"""

import sys
from collections import defaultdict
from math import log

from photolab.bench.evaluation import evaluate
from photolab.bench.simulation import demo_truth, simulate_with_truth

PAIRS = [
    ("K1", "B0"), ("K2", "B0"), ("K3", "B0"), ("K5", "B0"), ("K7", "B0"), ("K8", "B0"), ("K3", "K4"),
    ("K2", "K1"),
]  # fmt: skip


def main(benches: int) -> None:
    truth = demo_truth()
    held: dict[tuple[str, str], list[int]] = defaultdict(list)
    for seed in range(benches):
        drawn = simulate_with_truth(truth, seed=seed, only_readings=True)
        campaign = evaluate(drawn.bench)
        for a, b in PAIRS:
            for scope in ("specimens", "models"):
                for housing in ("HP", "HR"):
                    told = campaign.ratio(a, b, housing=housing, scope=scope)
                    value = drawn.truth.ln_ratio(a, housing, baseline=b, scope=scope)
                    low, high = log(told.low), log(told.high)
                    held[f"{a}/{b}", scope].append(int(low <= value <= high))
    for (pair, scope), hits in held.items():
        print(f"{pair} {scope:10s} {100 * sum(hits) / len(hits):5.1f} % of {len(hits)}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
