"""Where the database's file is."""

from pathlib import Path

from coordinator.store.sqlite_file import engine_of


def test_a_question_mark_in_the_folders_name_is_part_of_the_path(tmp_path: Path) -> None:
    folder = tmp_path / "arm?mode=ro"
    folder.mkdir()
    engine = engine_of(folder / "a.db", writes=True)
    with engine.begin() as connection:
        connection.exec_driver_sql("CREATE TABLE a (b INTEGER)")
    engine.dispose()
    assert (folder / "a.db").is_file()
