"""The order of the packages, thin notebooks, and names: read from the source."""

import ast
import json
import subprocess
import sys

import pytest

# A module imports from lower ranks only, or from its own package.
RANKS = {
    "messages": 0, "columns": 0, "wording": 0, "bootstrap": 0, "geodesy": 1, "intake": 2, "quality": 3, "radio": 4, "location": 5, "calibration": 6,
    "search": 7, "fate": 7, "movement": 7, "simulate": 8, "exchange": 8, "figures": 9, "report": 10, "survey": 11,
    "stages": 12, "run": 13, "__main__": 14,
}
JUNK_DRAWERS = {"utils", "util", "helpers", "helper", "misc", "common", "manager", "tools", "stuff"}
MOST_CELL_LINES = 10


def modules(project):
    return sorted((project / "pipeline").rglob("*.py"))


def package_of(project, path):
    """The name that has a rank: "radio" for pipeline/radio/fit.py, "survey" for pipeline/survey.py."""
    parts = path.relative_to(project / "pipeline").with_suffix("").parts
    return parts[0]


def imported(path, project):
    """(line, name that has a rank) of every import from this project, those inside functions included."""
    package = ("pipeline", *path.relative_to(project / "pipeline").parent.parts)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), str(path))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = [*package[: len(package) - node.level + 1]] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            names = [f"{module}.{alias.name}" for alias in node.names] if module == "pipeline" else [module]
        else:
            continue
        for name in names:
            if name.startswith("pipeline."):
                yield node.lineno, name.split(".")[1]


def test_every_module_has_a_rank(project):
    found = {package_of(project, path) for path in modules(project)} - {"__init__"}
    assert found <= set(RANKS), f"without a rank in this test: {sorted(found - set(RANKS))}"


def test_imports_go_one_way(project):
    against = []
    for path in modules(project):
        own = package_of(project, path)
        for line, other in imported(path, project):
            if own != other and RANKS.get(other, 99) >= RANKS.get(own, -1):
                against.append(f"{path.relative_to(project)}:{line}: {own} ({RANKS.get(own)}) imports {other} ({RANKS.get(other)})")
    assert against == []


def test_the_rule_sees_imports_inside_functions_and_relative_ones(tmp_path):
    (tmp_path / "pipeline" / "radio").mkdir(parents=True)
    path = tmp_path / "pipeline" / "radio" / "fit.py"
    path.write_text("from ..run import plan\nfrom . import gain\ndef f():\n    import pipeline.report.book\n    from pipeline import survey\n")
    assert sorted(imported(path, tmp_path)) == [(1, "run"), (2, "radio"), (4, "report"), (5, "survey")]


def test_the_bootstrap_needs_nothing_but_python_itself(project):
    allowed = sys.stdlib_module_names
    for name in ("__init__.py", "bootstrap.py"):
        tree = ast.parse((project / "pipeline" / name).read_text(), feature_version=(3, 7))
        for node in ast.walk(tree):
            found = [alias.name for alias in node.names] if isinstance(node, ast.Import) else [node.module] if isinstance(node, ast.ImportFrom) else []
            assert [module for module in found if module.split(".")[0] not in allowed] == []


def test_importing_the_package_loads_no_library():
    code = "import sys, pipeline, pipeline.run, pipeline.stages; print(*sorted({'numpy', 'pandas', 'click', 'pydantic'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == ""


def test_no_module_is_a_junk_drawer(project):
    assert [path.name for path in modules(project) if path.stem.strip("_") in JUNK_DRAWERS] == []


def notebook_files(project):
    return sorted((project / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("rule", ["no logic", "short cells", "no outputs", "one parameter"])
def test_notebooks_are_thin(project, rule):
    for path in notebook_files(project):
        cells = [cell for cell in json.loads(path.read_text(encoding="utf-8"))["cells"] if cell["cell_type"] == "code"]
        sources = ["".join(cell["source"]) for cell in cells]
        if rule == "no logic":
            logic = (ast.For, ast.While, ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda, ast.comprehension)
            found = [source for source in sources if any(isinstance(node, logic) for node in ast.walk(ast.parse(source)))]
        elif rule == "short cells":
            found = [source for source in sources if len(source.splitlines()) > MOST_CELL_LINES]
        elif rule == "no outputs":
            found = [cell for cell in cells if cell.get("outputs") or cell.get("execution_count")]
        else:
            tagged = [cell for cell in cells if "parameters" in cell.get("metadata", {}).get("tags", [])]
            found = [] if len(tagged) == 1 else [f"{len(tagged)} cells are tagged 'parameters'"]
        assert found == [], f"{path.name}: {rule}"
