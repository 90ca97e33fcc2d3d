"""Make the pictures of the README and the docs from the fixtures: python docs/pictures/make.py."""

from pathlib import Path

import boxjoint

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


def pictures() -> dict[str, bytes]:
    """Return the pictures by file name."""
    built = boxjoint.build(boxjoint.read_job(ROOT / "fixtures/jobs/slide-tray.toml"))
    files = boxjoint.files(built, picture=True)
    return {
        "slide-tray-panels.svg": files["panels.svg"],
        "slide-tray-assembled.svg": files["box.svg"],
    }


if __name__ == "__main__":
    for name, data in pictures().items():
        (HERE / name).write_bytes(data)
        print(HERE / name)
