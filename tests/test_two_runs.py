"""The same input gives the same output: a second run into another folder, compared file by file."""

from pipeline.run import run_survey


def test_two_runs_into_different_folders_leave_the_same_tables_figures_and_notebooks(demo_folder, project, tmp_path):
    other = tmp_path / "another folder"
    run_survey(project / "data" / "demo" / "survey.yml", into=other)
    for folder, least in (("tables", 30), ("figures", 30), ("notebooks", 4)):
        names = sorted(path.name for path in (other / folder).iterdir())
        assert names == sorted(path.name for path in (demo_folder / folder).iterdir())
        assert len(names) >= least
        assert [name for name in names if (other / folder / name).read_bytes() != (demo_folder / folder / name).read_bytes()] == []
    assert (other / "results.gpkg").read_bytes() == (demo_folder / "results.gpkg").read_bytes()


def test_a_second_run_into_the_same_folder_executes_nothing(demo_folder, project):
    again = run_survey(project / "data" / "demo" / "survey.yml", into=demo_folder)
    assert again.ran == []
