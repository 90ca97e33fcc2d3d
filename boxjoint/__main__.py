"""``python -m boxjoint``: the same as the command ``boxjoint``."""

from boxjoint.cli.main import run

if __name__ == "__main__":
    run()
