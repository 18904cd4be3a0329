"""``python -m linkfit``: the same as the command ``linkfit``."""

from linkfit.cli.app import main

if __name__ == "__main__":
    main()
