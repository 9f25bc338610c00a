"""``python -m coppermend`` is the command ``coppermend``."""

from coppermend.cli import main

if __name__ == "__main__":
    main()
