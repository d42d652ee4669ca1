"""Write the invented nights of the demo: `python data_demo/make_nights.py FOLDER`, the same every time.

One Parquet file a story, named by it, 0.3 MB in all; the demo itself makes them when it is loaded and carries
no file. Every value is invented.
"""

import sys
from pathlib import Path

from hvmon.nights.synthetic import DEMO_SEED, demo_nights
from hvmon.store.nights import encode_night


def main(folder: Path) -> None:
    """Write every night of the demo into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for story_key, signal in demo_nights(DEMO_SEED):
        path = folder / f"{story_key.replace(' ', '-')}.parquet"
        path.write_bytes(encode_night(signal))
        sys.stdout.write(f"{path}: {signal.start_local:%d %b %Y %H:%M}, {path.stat().st_size} bytes\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "nights")
