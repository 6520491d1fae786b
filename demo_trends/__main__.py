"""`python -m demo_trends [DIR]` writes the demo campus anew, by default over the checked-in one."""

import sys
from pathlib import Path

from demo_trends.campus import generate

if __name__ == "__main__":
    generate(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "campus")
