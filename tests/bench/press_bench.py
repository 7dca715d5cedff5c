"""How tablets fare while the press makes a pack: `python tests/bench/press_bench.py
[JOINTS] [SECONDS]`, on another database with DATABASE_URL (an empty one).

Twenty tablets save a reading every second, in turns with nothing beside them and with a
pack of 80 joints (over 200 pages, 60 photos) being made by the press in a subprocess,
started anew when it is done. Wanted: the 99th percentile of the saves beside the press
within 1.5 times that without it. Turns follow each other, so that other work on the
machine falls on both; three minutes in all.
"""

import subprocess
import sys
import threading
import time
from contextlib import contextmanager, nullcontext
from pathlib import Path

TREE = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TREE), str(Path(__file__).parent)]
JOINTS, SECONDS, TURNS, PAUSE = 80, 15.0, 4, 1.0
WANTED = 1.5


def main() -> None:
    joints = int(sys.argv[1]) if sys.argv[1:] else JOINTS
    seconds = float(sys.argv[2]) if sys.argv[2:] else SECONDS
    import save_bench

    with save_bench.a_home() as home:
        checks, tokens = save_bench.prepare()
        order = an_order(joints)
        with save_bench.serving(home, 1) as sites:
            save_bench.warm(sites, checks, tokens)
            found = {False: [], True: []}
            for turn in range(2 * TURNS):
                beside = turn % 2 == 1
                with pressing(order) if beside else nullcontext():
                    found[beside] += save_bench.seconds_of(
                        sites, checks, tokens, seconds, pause=PAUSE
                    )
        for beside, times in found.items():
            told = (
                f"median {at(times, 0.5):6.1f} ms, 99 % under {at(times, 0.99):7.1f} ms"
            )
            what = "beside the press" if beside else "without it"
            save_bench.tell(what, f"{told}, {len(times)} saves")
        save_bench.hold()
    ratio = at(found[True], 0.99) / at(found[False], 0.99)
    save_bench.tell("99th percentile, ratio", f"{ratio:.2f} (wanted: {WANTED} or less)")


def at(times: list[float], share: float) -> float:
    """A percentile, in milliseconds."""
    return sorted(times)[int(len(times) * share)] * 1000


def an_order(joints: int) -> str:
    """A pack that waits for the press: the id of its order."""
    import pack_bench

    from shop.models import Person

    people = {one.role: one for one in Person.objects.all()}
    return str(pack_bench.shop_of(joints, people).entry_id)


@contextmanager
def pressing(order: str):
    """Within it a press makes the same pack, again and again."""
    command = [sys.executable, "-m", "django", "print_pack", order]
    over, running, made = threading.Event(), [], []

    def run() -> None:
        while not over.is_set():
            start = time.monotonic()
            running[:] = [subprocess.Popen(command, cwd=TREE)]
            if running[0].wait() == 0:
                made.append(f"{time.monotonic() - start:.1f}")

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        over.set()
        for one in running:
            one.terminate()
        thread.join()
        told = ", ".join(made) or "not done in this turn"
        sys.stdout.write(f"{'a pack of it, seconds by the clock':<42}{told}\n")


if __name__ == "__main__":
    main()
