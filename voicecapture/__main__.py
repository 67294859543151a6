"""The command, also as `python -m voicecapture`.

The process that records the microphone loads this file as well, so it brings nothing with it.
"""


def main() -> None:
    """Run the command line."""
    from voicecapture.cli import main as run

    run()


if __name__ == "__main__":
    main()
