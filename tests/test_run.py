"""Runs of small made-up stages: skipping, resuming, failing, interrupting, and what is left in the folder."""

import io
import json
import sys
import types
from types import SimpleNamespace

import nbformat
import pytest

from pipeline.messages import StageError, SurveyError
from pipeline.run import building, execute
from pipeline.run.building import move_into_place, start_building
from pipeline.run.execute import run_stages
from pipeline.run.lock import only_run_in
from pipeline.run.plan import Stage
from pipeline.run.progress import Progress


@pytest.fixture(autouse=True)
def settled_code(monkeypatch):
    """The program counts as unchanged, whoever edits it while the tests run."""
    monkeypatch.setattr(execute, "code_hashes", lambda memory: {"pipeline": "1"})


@pytest.fixture
def survey(tmp_path):
    folder = tmp_path / "campaign é {1}"
    folder.mkdir()
    files = {"survey.yml": folder / "survey.yml", "f1.csv": folder / "f1.csv"}
    files["survey.yml"].write_text("campaign: hills\n")
    files["f1.csv"].write_text("time_utc\n")
    return SimpleNamespace(campaign="hills", title="Hills", seed=1, file=files["survey.yml"], folder=folder,
                           input_files=lambda: dict(files))


@pytest.fixture
def out(tmp_path):
    return tmp_path / "out é {2} x"


@pytest.fixture
def stages(monkeypatch):
    """Two stages without notebooks: the first copies the log, the second counts what the first wrote."""
    module = types.ModuleType("made_up_stages")
    module.calls = []

    def first(workspace):
        module.calls.append("first")
        text = workspace.survey.input_files()["f1.csv"].read_text()
        workspace.path_to_write("work/copy.txt").write_text(text.split("#")[0])
        workspace.path_to_write("tables/changes.csv").write_text("rule,rows\ncopies removed,1200\ncopies removed,3\n")

    def second(workspace):
        module.calls.append("second")
        workspace.path_to_write("second.html").write_text(workspace.closing_html)
        workspace.write_json("count", len(workspace.path_to_read("work/copy.txt").read_text()))

    module.first, module.second = first, second
    monkeypatch.setitem(sys.modules, "made_up_stages", module)
    both = [Stage("1_first", "First", function="made_up_stages:first"), Stage("2_second", "Second", function="made_up_stages:second")]
    return SimpleNamespace(both=both, calls=module.calls, module=module)


def notebook_stage(folder, *sources, name="1_book"):
    cells = [nbformat.v4.new_markdown_cell("# Where the tags were"),
             nbformat.v4.new_code_cell('config_path = "demo.yml"', metadata={"tags": ["parameters"]}),
             nbformat.v4.new_markdown_cell("## Fixes"), *map(nbformat.v4.new_code_cell, sources)]
    folder.mkdir(exist_ok=True)
    nbformat.write(nbformat.v4.new_notebook(cells=cells), folder / f"{name}.ipynb")
    return Stage(name, "Book", notebook=folder / f"{name}.ipynb")


def test_a_second_run_executes_nothing_and_changes_no_file(survey, out, stages):
    assert run_stages(survey, out, stages.both).ran == ["1_first", "2_second"]
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file() and path.name not in (".running", "fingerprints.json")}
    second = run_stages(survey, out, stages.both)
    assert second.ran == [] and stages.calls == ["first", "second"]
    assert {path: path.read_bytes() for path in before} == before
    assert all(decision.why.startswith("nothing changed since 2") for decision in second.decisions)


def test_a_changed_input_runs_every_stage_whose_results_change(survey, out, stages):
    run_stages(survey, out, stages.both)
    survey.input_files()["f1.csv"].write_text("time_utc\n2027\n")
    result = run_stages(survey, out, stages.both)
    assert [decision.why for decision in result.decisions] == [
        "f1.csv changed", "f1.csv changed, 1_first gave other results"]


def test_a_stage_is_skipped_when_the_one_before_it_gives_the_same_results_again(survey, out, stages):
    run_stages(survey, out, stages.both)
    (out / "work" / "copy.txt").unlink()
    result = run_stages(survey, out, stages.both)
    first, second = result.decisions
    assert first.why == "its result work/copy.txt is missing"
    assert not second.runs and second.why.startswith("nothing changed since")


def test_a_file_that_a_later_stage_finishes_belongs_to_that_stage(survey, out, stages, monkeypatch):
    monkeypatch.setattr(stages.module, "second", lambda workspace: workspace.path_to_write("work/copy.txt").write_text("finished"))
    run_stages(survey, out, stages.both)
    assert run_stages(survey, out, stages.both).ran == []
    result = run_stages(survey, out, stages.both, forced={"1_first": "asked for with --force"})
    assert result.decisions[1].why == "its result work/copy.txt was changed afterwards"
    assert (out / "work" / "copy.txt").read_text() == "finished"


def test_a_dry_run_says_why_and_writes_nothing(survey, out, stages):
    said = io.StringIO()
    result = run_stages(survey, out, stages.both, dry_run=True, progress=Progress(said))
    assert not out.exists() and result.ran == ["1_first", "2_second"] and stages.calls == []
    assert said.getvalue().splitlines() == ["1 first               would run: it has no finished results yet",
                                            "2 second              would run: it has no finished results yet"]


def test_a_failure_keeps_earlier_results_and_the_same_command_resumes(survey, out, stages, monkeypatch):
    run_stages(survey, out, stages.both)
    good = (out / "work" / "count.json").read_bytes()
    survey.input_files()["f1.csv"].write_text("time_utc\n2027\n")
    second = stages.module.second

    def half(workspace):
        workspace.write_json("count", "half")
        raise RuntimeError("no luck")

    monkeypatch.setattr(stages.module, "second", half)
    with pytest.raises(StageError) as told:
        run_stages(survey, out, stages.both, resume="python3 -m pipeline run survey.yml")
    assert str(told.value) == (
        f"2 second stopped: RuntimeError: no luck\nWhat was done is kept in {out}: 2_second.failed.txt. "
        "Results of earlier runs are untouched.\nWhen it is mended, go on with: python3 -m pipeline run survey.yml")
    assert (out / "work" / "count.json").read_bytes() == good and not list(out.glob(".building*"))
    monkeypatch.setattr(stages.module, "second", second)
    assert run_stages(survey, out, stages.both).ran == ["2_second"]
    assert not (out / "2_second.failed.txt").exists()


def test_a_run_killed_in_a_stage_leaves_nothing_half_written_and_resumes(survey, out, stages, monkeypatch):
    def killed(workspace):
        workspace.write_json("count", "half")
        raise KeyboardInterrupt

    with monkeypatch.context() as during:
        during.setattr(stages.module, "second", killed)
        with pytest.raises(KeyboardInterrupt):
            run_stages(survey, out, stages.both)
    assert not (out / "work" / "count.json").exists()
    (out / ".building-2_second").mkdir()  # what a kill leaves that no program can clean up after
    (out / ".building-2_second" / "old.txt").write_text("old")
    assert run_stages(survey, out, stages.both).ran == ["2_second"]
    assert not list(out.glob(".building*")) and not (out / "old.txt").exists()


def test_a_run_killed_while_files_move_does_the_stage_again(survey, out, stages, monkeypatch):
    run_stages(survey, out, stages.both)
    replace = building.os.replace
    monkeypatch.setattr(building.os, "replace", lambda *paths: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        run_stages(survey, out, stages.both, forced={"1_first": "asked for with --force"})
    monkeypatch.setattr(building.os, "replace", replace)
    result = run_stages(survey, out, stages.both)
    assert result.decisions[0].why == "it has no finished results yet" and result.ran == ["1_first"]


def test_files_that_a_stage_no_longer_makes_are_removed(tmp_path):
    folder = tmp_path / "out"
    (start_building(folder, "1") / "old.csv").write_text("a")
    outputs = move_into_place(folder, folder / ".building-1", "1", {})
    assert list(outputs) == ["old.csv"] and (folder / "old.csv").exists()
    (start_building(folder, "1") / "new.csv").write_text("a")
    move_into_place(folder, folder / ".building-1", "1", outputs)
    assert [path.name for path in folder.iterdir()] == ["new.csv"]


def test_a_file_that_went_from_one_stage_to_another_is_not_removed_by_the_stage_that_made_it_before(survey, out, stages, monkeypatch):
    monkeypatch.setattr(stages.module, "second", lambda workspace: workspace.path_to_write("work/ways.txt").write_text("by the second"))
    run_stages(survey, out, stages.both)
    monkeypatch.setattr(stages.module, "second", lambda workspace: workspace.path_to_write("work/rest.txt").write_text("rest"))
    first = stages.module.first
    monkeypatch.setattr(stages.module, "first", lambda workspace: (first(workspace), workspace.path_to_write("work/ways.txt").write_text("by the first")))
    again = dict.fromkeys(("1_first", "2_second"), "asked for with --force")
    run_stages(survey, out, stages.both, forced=again)
    assert (out / "work" / "ways.txt").read_text() == "by the first" and run_stages(survey, out, stages.both).ran == []


def test_two_runs_into_one_folder_at_the_same_time_are_refused(survey, out, stages):
    with only_run_in(out):
        with pytest.raises(SurveyError, match="Another run is writing here. Two runs in one folder would mix"):
            run_stages(survey, out, stages.both)
    assert stages.calls == [] and run_stages(survey, out, stages.both).ran


def test_results_may_not_go_where_the_inputs_lie(survey, stages):
    with pytest.raises(SurveyError, match=r"The folder for results holds inputs \(survey.yml, f1.csv\)"):
        run_stages(survey, survey.folder, stages.both)


def test_an_input_that_changes_during_the_run_is_reported(survey, out, stages, monkeypatch):
    def meddling(workspace):
        survey.input_files()["f1.csv"].write_text("other")

    monkeypatch.setattr(stages.module, "second", meddling)
    with pytest.raises(SurveyError, match="f1.csv: The file changed while the run was going on"):
        run_stages(survey, out, stages.both)


def test_the_check_comes_before_anything_is_written_and_only_when_something_runs(survey, out, stages):
    def refuse():
        raise SurveyError([])

    with pytest.raises(SurveyError):
        run_stages(survey, out, stages.both, check=refuse)
    assert stages.calls == []
    run_stages(survey, out, stages.both)
    assert run_stages(survey, out, stages.both, check=refuse).ran == []


def test_run_json_holds_what_the_run_used(survey, out, stages):
    run_stages(survey, out, stages.both)
    told = json.loads((out / "run.json").read_text())
    assert told["inputs"]["f1.csv"]["bytes"] == 9 and len(told["inputs"]["f1.csv"]["sha256"]) == 64
    assert [(stage["name"], stage["ran"]) for stage in told["stages"]] == [("1_first", True), ("2_second", True)]
    assert {"config", "seeds", "code", "packages", "messages", "started_utc", "finished_utc"} <= set(told)
    assert str(survey.folder) not in json.dumps(told["config"])


def test_the_closing_section_names_inputs_versions_times_and_stages(survey, out, stages):
    run_stages(survey, out, stages.both)
    page = (out / "second.html").read_text()
    for part in ("What this run used", "f1.csv", "<svg", "<title", "<desc", "Versions of the packages", "campaign: hills", "Code revision", "copies removed", "1,203"):
        assert part in page
    assert "http" not in page


def test_a_notebook_gets_its_parameter_and_the_same_bytes_twice(survey, out, tmp_path):
    stage = notebook_stage(tmp_path / "books {a} é", "import os, pathlib\nprint(os.getcwd())\nobject()",
                           "from pipeline.stages import workspace\n"
                           "pathlib.Path(os.environ['FIXLEDGER_BUILDING'], 'seen.txt').write_text(config_path)")
    said = io.StringIO()
    run_stages(survey, out, [stage], progress=Progress(said))
    first = (out / "notebooks" / "1_book.ipynb").read_bytes()
    assert (out / "seen.txt").read_text() == str(survey.file)
    assert str(stage.notebook.parent) in first.decode() and (out / "1_book.html").exists()
    assert [line[22:].split(" in ")[0] for line in said.getvalue().splitlines()] == [
        "runs: it has no finished results yet", "cell 1 of 4: start", "cell 3 of 4: Fixes", "done"]
    run_stages(survey, out, [stage], forced={"1_book": "asked for with --force"})
    assert (out / "notebooks" / "1_book.ipynb").read_bytes() == first


def test_a_failing_notebook_keeps_its_part_with_a_banner_and_tells_the_cell(survey, out, tmp_path):
    stage = notebook_stage(tmp_path / "books", "print('so far')", "1 / 0\n# end")
    with pytest.raises(StageError) as told:
        run_stages(survey, out, [stage], resume="RESUME")
    assert str(told.value).splitlines() == [
        "1 book stopped in cell 4 (Fixes): ZeroDivisionError: division by zero", "      1 / 0", "      # end",
        f"What was done is kept in {out}: 1_book.failed.html, notebooks/1_book.failed.ipynb. Results of earlier runs are untouched.",
        "When it is mended, go on with: RESUME"]
    kept = nbformat.read(out / "notebooks" / "1_book.failed.ipynb", as_version=4)
    assert "**Where it stopped:** 1 book, code cell 4, under “Fixes”" in kept.cells[1].source
    assert "so far" in (out / "1_book.failed.html").read_text() and not (out / "1_book.html").exists()


def test_a_notebook_that_ends_its_kernel_has_failed(survey, out, tmp_path):
    stage = notebook_stage(tmp_path / "books", "import sys; sys.exit(0)")
    with pytest.raises(StageError, match=r"1 book stopped in cell 3 \(Fixes\): NotFinished: the notebook ended before this cell was done"):
        run_stages(survey, out, [stage])


def test_a_notebook_with_another_parameter_is_refused_before_a_kernel_starts(survey, out, tmp_path):
    stage = notebook_stage(tmp_path / "books", "1")
    notebook = nbformat.read(stage.notebook, as_version=4)
    notebook.cells[1].source += '\nspeed = "fast"'
    nbformat.write(notebook, stage.notebook)
    with pytest.raises(StageError, match="the parameters cell of 1_book.ipynb sets config_path, speed; the one parameter is config_path"):
        run_stages(survey, out, [stage])
