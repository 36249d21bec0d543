"""`python -m advisor.cli`: the command without its installed script."""

from advisor.cli.main import run

run()
