"""Other programs for the same estimates, each in its own environment so that none becomes a dependency.

npsurv, the R program of the author of the algorithm (GPL; asked as a program, not linked):

    apt-get install r-base-core r-cran-npsurv

surpyval and lifelines in a virtual environment anywhere outside the project:

    python3 -m venv /somewhere/peers
    /somewhere/peers/bin/pip install surpyval lifelines
    python -m tests.benchmarks --peers /somewhere/peers/bin/python

Each is handed the rows in a file and times its own fit, so that neither its start nor the reading counts. surpyval is
asked for its Kaplan-Meier form, which is the maximum of the likelihood; what it gives by default is not.
"""

import json
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import numpy.typing as npt

HERE = Path(__file__).parent


@dataclass(frozen=True, eq=False)
class PeerFit:
    """program: name and version. seconds: of each run. end, share: days and the share regrown by then; empty where
    only time was asked for."""

    program: str
    seconds: list[float]
    end: npt.NDArray[np.float64]
    share: npt.NDArray[np.float64]


class Peers:
    """The programs at hand. python: path of the Python that has surpyval and lifelines, empty for none."""

    def __init__(self, python: str) -> None:
        self._python = python

    @property
    def rscript(self) -> str | None:
        """The path of Rscript, where npsurv is installed."""
        return self._r

    @cached_property
    def _r(self) -> str | None:
        program = shutil.which("Rscript")
        if program is None:
            return None
        asked = subprocess.run([program, "-e", "library(npsurv)"], capture_output=True, check=False)
        return program if asked.returncode == 0 else None

    @cached_property
    def _modules(self) -> set[str]:
        if not self._python:
            return set()
        ask = "import importlib.util as u; print(*[m for m in ('surpyval', 'lifelines') if u.find_spec(m)])"
        return set(subprocess.run([self._python, "-c", ask], capture_output=True, check=True, text=True).stdout.split())

    def missing(self) -> list[str]:
        """Names of the programs that cannot be asked, with how to get them."""
        missing = [] if self._r else ["npsurv (apt-get install r-base-core r-cran-npsurv)"]
        absent = [name for name in ("surpyval", "lifelines") if name not in self._modules]
        return missing + [f"{name} (--peers PYTHON, see tests/benchmarks/peers)" for name in absent]

    def fit(
        self, name: str, left: npt.NDArray[np.float64], right: npt.NDArray[np.float64], runs: int
    ) -> PeerFit | None:
        """The fit of one program to these rows; None where the program is missing."""
        return self._ask(name, "fit", np.column_stack([left, right]), runs)

    def refit(self, name: str, draws: list[tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]]) -> PeerFit | None:
        """Time of one program for each of several samples, one after the other."""
        rows = [np.column_stack([np.full(len(left), place), left, right]) for place, (left, right) in enumerate(draws)]
        return self._ask(name, "refit", np.concatenate(rows), 1)

    def _ask(self, name: str, task: str, rows: npt.NDArray[np.float64], runs: int) -> PeerFit | None:
        if name == "npsurv" and self._r:
            command = [self._r, str(HERE / "npsurv.R")]
        elif name in self._modules:
            command = [self._python, str(HERE / "python_peers.py"), name]
        else:
            return None
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "rows.csv"
            np.savetxt(path, np.where(np.isinf(rows), -1, rows), delimiter=",", fmt="%g")
            command += [task, str(path), str(runs)]
            said = json.loads(subprocess.run(command, capture_output=True, check=True, text=True).stdout)
        return PeerFit(said["program"], said["seconds"], np.array(said["end"], float), np.array(said["share"], float))
