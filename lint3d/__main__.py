"""`python -m lint3d` does what `lint3d` does."""

from lint3d.cli import main

if __name__ == "__main__":
    main(prog_name="lint3d")
