"""`python -m partwright` is the command `partwright`."""

from partwright.cli.main import main

main()
