"""The benches, which no test run times, can at least be started."""

from importlib import import_module
from pathlib import Path

import pytest

from tests import bench

FILES = sorted(path.stem for path in Path(bench.__file__).parent.glob("*.py") if path.stem != "__init__")


@pytest.mark.parametrize("name", FILES)
def test_a_bench_imports(name):
    """Each module under tests/bench imports without measuring anything."""
    import_module(f"tests.bench.{name}")


@pytest.mark.parametrize("name", ["hot_reads", "main_job", "reach"])
def test_a_bench_tells_its_options(name, capsys):
    """--help answers before any server is started."""
    with pytest.raises(SystemExit) as left:
        import_module(f"tests.bench.{name}").main(["--help"])
    assert left.value.code == 0
    assert "--quick" in capsys.readouterr().out
