"""environment.yml for conda users, made from requirements.in and requirements.lock.

    python -m pipeline.run.environment_file            writes it
    python -m pipeline.run.environment_file --check    exit code 1 when it is out of step
"""

from __future__ import annotations

import sys

from pipeline.bootstrap import NEWEST, OLDEST, PROJECT, bounds, locked_versions, required_names

FILE = PROJECT / "environment.yml"

# Where the conda-forge name is another, or there is no such package there.
CONDA_NAMES = {"matplotlib": "matplotlib-base", "playwright": None, "axe-playwright-python": None,
               "latex2mathml": None, "pygeomag": None, "xstatic-leaflet": None}

_HEAD = """\
# For conda users: conda env create -f environment.yml && conda activate fixledger
# Made from requirements.in and requirements.lock by `python -m pipeline.run.environment_file`; a test keeps it in step.
# From the version of the lock, below its next major version; in such an environment no .venv is made.
"""


def environment_text() -> str:
    """The file as it should be."""
    locked = locked_versions()
    conda, pip = [f"python >=3.{OLDEST[1]},<3.{NEWEST[1] + 1}", "pip"], ["-e ."]
    for name in required_names():
        lowest, below = bounds(locked[name])
        conda_name = CONDA_NAMES.get(name, name)
        if conda_name:
            conda.append(f"{conda_name} >={lowest},<{below}")
        else:
            pip.append(f"{name} >={lowest},<{below}")
    lines = ["name: fixledger", "channels:", "  - conda-forge", "  - nodefaults", "dependencies:",
             *(f"  - {spec}" for spec in conda), "  - pip:", *(f"      - {spec}" for spec in pip)]
    return _HEAD + "\n".join(lines) + "\n"


def main(arguments: list[str]) -> int:
    """Write or check the file; returns the exit code."""
    if arguments not in ([], ["--check"]):
        print("usage: python -m pipeline.run.environment_file [--check]", file=sys.stderr)
        return 2
    text = environment_text()
    if not arguments:
        FILE.write_text(text, encoding="utf-8", newline="\n")
        return 0
    if FILE.exists() and FILE.read_text(encoding="utf-8") == text:
        return 0
    print("environment.yml is out of step with requirements.in and requirements.lock; "
          "write it with: python -m pipeline.run.environment_file", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
