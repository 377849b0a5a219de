"""`python -m lint3d` does what `lint3d` does."""

import sys

# `-m` puts the current folder first: a module beside a customer's files would be run from there.
if __name__ == "__main__" and not sys.flags.safe_path:
    del sys.path[0]

from lint3d.cli import main

if __name__ == "__main__":
    main(prog_name="lint3d")
