"""An archive's index: searching it, and comparing each build with each."""

from __future__ import annotations

import sys
import tempfile
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np

from builder.archive import similarity
from builder.archive.fields import weights_from
from builder.archive.index import dump_index, write_index
from builder.archive.summary import Summary
from tests.bench.aims import print_figure
from tests.bench.measure import least_seconds, measure_command
from tests.support import archive_samples as samples

SEARCH = """\
import sys
from pathlib import Path
from builder.archive.fields import weights_from
from builder.archive.index import read_index
from builder.archive.search import find, similar
builds = read_index(Path(sys.argv[1]))
assert find(builds, {"compression_ratio": [(10.0, 11.0)]}, {}, "v8")
print(similar(builds, builds[0], weights_from(None)[0]).estimate.expected[0].text())
"""


def varied(count: int, copies: int, step: float) -> list[Summary]:
    """Return `count` invented engines, each so many times with a little more displacement."""
    return [
        replace(build, slug=f"{build.slug}-{k}", displacement=(build.displacement or 0.005) * (1 + step * k))
        for k in range(copies)
        for build in samples.invented_archive(count, sparse=0.2)
    ]


def main() -> None:
    """Print the figures of an index of 1,000, 5,000 and 10,000 builds."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "index"
        write_index(path, dump_index(varied(250, 4, 0.003)))
        runs = [measure_command([sys.executable, "-c", SEARCH, str(path)]) for _ in range(3)]
        print_figure("search of 1,000 builds, one process", min(run.processor for run in runs))
    weights = weights_from(None)[0]
    builds = varied(500, 20, 0.003)
    matrix = similarity.build_matrix(builds, weights)
    assert len(matrix) == 10_000
    distances = least_seconds(lambda: similarity.distances(matrix, builds[3]), 5)
    print_figure("distances to 10,000 builds", 1e3 * distances)
    half = similarity.build_matrix(builds[:5000], weights)
    print_figure("six nearest of each of 5,000 builds", least_seconds(lambda: similarity.nearest(half, 6), 1))
    tracemalloc.start()
    similarity.nearest(half, 6, np.arange(400))  # memory grows with a block, not with the number of queries
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print_figure("six nearest of 400 among 5,000 builds, memory", peak / 1e6)


if __name__ == "__main__":
    main()
