"""A benchmark on a PostgreSQL of its own that writes durably, which is removed after:
`python tests/bench/on_postgresql.py tests/bench/save_bench.py 20`."""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

TREE = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TREE))


def main() -> int:
    from tests.around import Cluster, find_postgresql_programs, who_may_run_it

    folder, owner = Path(tempfile.mkdtemp(prefix="fayline-bench-")), who_may_run_it()
    if owner:
        shutil.chown(folder, "postgres")
    cluster = Cluster(find_postgresql_programs(), folder, owner)
    cluster.start()
    try:
        environment = {**os.environ, "DATABASE_URL": cluster.address}
        command = [sys.executable, *sys.argv[1:]]
        return subprocess.run(
            command, env=environment, cwd=TREE, check=False
        ).returncode
    finally:
        cluster.stop()
        shutil.rmtree(folder)


if __name__ == "__main__":
    sys.exit(main())
