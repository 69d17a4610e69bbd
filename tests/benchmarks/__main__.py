"""How long the heavy calculations take, beside other programs for the same estimate.

    python -m tests.benchmarks [--quick] [--only PART] [--peers PYTHON]

Parts: npmle, bootstrap, tables, regression, page, yearly, stored, cold.

Every time stands beside what makes it comparable: how far the fit is from the optimality condition, how far the
estimate is from that of the reference, and the peak of memory. Times are the best and the median of several runs in
one process; reading data and starting programs are not counted. `--quick` leaves out the largest sizes.

Other programs are asked where they are installed, and named as missing where not; see tests/benchmarks/peers.
Small matrices lose more by threads than they gain, so this command runs with OPENBLAS_NUM_THREADS=1 unless it is set.
"""

import argparse
import os


def main() -> None:
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is imported
    from tests.benchmarks import bootstrap, cold, npmle, page, regression, stored_pages, tables, yearly
    from tests.benchmarks.peers import Peers

    parts = {"npmle": npmle.run, "bootstrap": bootstrap.run, "tables": tables.run, "regression": regression.run,
             "page": page.run, "yearly": yearly.run, "stored": stored_pages.run,
             "cold": cold.run}  # fmt: skip
    arguments = argparse.ArgumentParser(prog="python -m tests.benchmarks", description="Times of heavy calculations.")
    arguments.add_argument("--quick", action="store_true", help="leave out the largest sizes")
    arguments.add_argument("--only", choices=parts, help="one part alone")
    arguments.add_argument("--peers", metavar="PYTHON", default="", help="Python in which surpyval and lifelines are")
    chosen = arguments.parse_args()
    peers = Peers(chosen.peers)
    for missing in peers.missing():
        print(f"not installed, so left out: {missing}")
    for name, part in parts.items():
        if chosen.only in (None, name):
            part(quick=chosen.quick, peers=peers)


if __name__ == "__main__":
    main()
