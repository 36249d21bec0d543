"""A cluster gives the bytes that the cores of this machine give."""

import shutil

import pytest
import solids
import worker_jobs
from asked_for import few_of
from folders import folder_bytes

from advisor.cli.main import run_for_code
from advisor.errors import InputError
from advisor.library.cluster import over_cluster
from advisor.library.slot import Limits, Lost

distributed = pytest.importorskip(
    "distributed", reason="Dask distributed is not installed (the extra cluster, in advisor-surface-finishing[dev])"
)
# what Dask's own shutdown says of itself is none of ours
pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::DeprecationWarning")


def two_workers():
    return distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    )


@pytest.fixture(scope="module")
def address():
    with two_workers() as cluster:
        yield cluster.scheduler_address


def always(_result):
    return True


def test_the_folder_is_that_of_the_embedded_run(address, tmp_path):
    parts = tmp_path / "parts"
    parts.mkdir()
    for tilt_deg in (20.0, 30.0, 40.0):
        (parts / f"wedge {tilt_deg:g}.stl").write_bytes(solids.to_stl_bytes(*solids.wedge(tilt_deg)))
    shutil.copy(parts / "wedge 20.stl", parts / "wedge too.stl")
    (parts / "bad.stl").write_bytes(b"solid nothing")
    fewer = few_of(["--no-pictures", "--short"], [])
    options = ["--ball", "6 mm", "--material", "Ti-6Al-4V", "--quiet", *fewer, "--out"]
    out = tmp_path / "out"
    contents = []
    for more in (["--workers", "2"], ["--scheduler", address]):
        assert run_for_code(["batch", str(parts), *options, str(out), *more]) == 3
        (out / "not_planned.csv").unlink()  # tells the command, which is another one
        (out / "index.html").unlink()
        contents.append(folder_bytes(out))
        shutil.rmtree(out)
    assert contents[0] == contents[1]
    assert sum(name.endswith("plan.json") for name in contents[0]) == 4


def test_limits_and_deaths_are_those_of_the_cores(address):
    tasks = ["one", "hang", "hoard", "two", "three"]
    crew = over_cluster(address, Limits(seconds=5.0, memory_bytes=700_000_000))
    results = dict(crew(worker_jobs.hang_or_hoard, tasks, warmed_by=always))
    assert results == {
        "hang": Lost("time"), "hoard": Lost("memory"), **{word: f"did {word}" for word in ("one", "two", "three")},
    }  # fmt: skip
    results = dict(over_cluster(address)(worker_jobs.double_or_die, range(8), warmed_by=always))
    assert results == {n: Lost("died") if n in (3, 5) else 2 * n for n in range(8)}


def test_a_worker_that_dies_costs_no_part_and_a_part_that_kills_workers_itself_only(tmp_path):
    """The processes of the cluster themselves are killed: another one takes the part up again."""
    tasks = [(word, tmp_path / f"{number}") for number, word in enumerate(["well", "once", "well", "always", "well"])]
    with two_workers() as cluster:
        results = list(over_cluster(cluster.scheduler_address)(worker_jobs.kill_the_worker, tasks, warmed_by=always))
    assert sorted((task[1].name, result) for task, result in results) == [
        ("0", "well"), ("1", "once"), ("2", "well"), ("3", Lost("died")), ("4", "well"),
    ]  # fmt: skip


def test_a_fault_of_the_work_comes_out_as_it_is(address):
    with pytest.raises(InputError, match="part: number 0 is bad; give another"):
        list(over_cluster(address)(worker_jobs.raise_input_error, [0], warmed_by=always))


def test_no_scheduler_or_no_dask_is_one_line(tmp_path, capsys, monkeypatch):
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts/a.stl").write_bytes(b"x")
    words = ["batch", str(tmp_path / "parts"), "--out", str(tmp_path / "out"), "--scheduler"]
    for address in ("tcp://127.0.0.1:9", "no address at all"):
        monkeypatch.setattr("advisor.library.cluster._CONNECT_SECONDS", 1.0)
        assert run_for_code([*words, address]) == 2
        error = capsys.readouterr().err.splitlines()[-1]
        assert error.startswith(f"error: {address}: no scheduler answers there; check the address")
    monkeypatch.setattr("advisor.library.cluster.find_spec", lambda _name: None)
    assert run_for_code([*words, address]) == 2
    assert "pip install 'advisor-surface-finishing[cluster]'" in capsys.readouterr().err
