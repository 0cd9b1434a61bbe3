"""`python -m spc`."""

from spc.cli import main

if __name__ == "__main__":
    main()
