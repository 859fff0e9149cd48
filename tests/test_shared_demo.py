"""What tests share is made once, and anew when a file changes. Oracle: the reading typed into the file."""

import bench_folders as bf
from shared_demo import bench_of, campaign_of, rows_of


def test_a_folder_is_read_once_until_a_file_in_it_changes(tmp_path):
    folder = bf.make(tmp_path / "b")
    first = bench_of(folder)
    assert bench_of(folder) is first
    assert campaign_of(first) is campaign_of(first)
    bf.make(folder, readings_csv=bf.READINGS.replace("334", "3350"))
    again = bench_of(folder)
    assert list(again.tables["readings"]["illuminance_lx"]) == [318.0, 3350.0]
    assert campaign_of(again).bench is again


def test_rows_handed_out_may_be_changed_without_harm(tmp_path):
    campaign = campaign_of(bench_of(bf.make(tmp_path / "b")))
    rows = rows_of(campaign)
    rows["value"] = 0.0
    assert (rows_of(campaign)["value"] > 0.0).all()
