"""What the reader asks for, as options of the command line."""

import pytest

from linkfit.report.option_words import as_options


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("say direction='up' (from the server) or 'down'",
         "say --direction up (from the server) or 'down'"),
        ("say it with units={'chunk_size': 'MB' (bytes) or 'kbit' (bits)}",
         "say it with --units chunk_size=MB (bytes) or 'kbit' (bits)"),
        ("columns={1: 'start', 2: 'rate up'}, units={2: 'Mbit/s'}",
         '--columns 1=start --columns "2=rate up", --units 2=Mbit/s'),
        ("""say which with columns={"it's": 'rate up'}""",
         '''say which with --columns "it's=rate up"'''),
        ("say saturating=True if the link was kept full",
         "say --saturating if the link was kept full"),
        ("say saturating=False", "say --not-saturating"),
        ("say step_s=1.0 if there is one row a second",
         'say --row-length "1.0 s" if there is one row a second'),
        ("taken as 10 s; say step_s if not", "taken as 10 s; say --row-length if not"),
        ("say timezone='Europe/Lisbon'", "say --timezone Europe/Lisbon"),
        ("of summer time: say timezone=)", "of summer time: say --timezone)"),
        ("columns= and units= if they are not", "--columns and --units if they are not"),
        ("the column rates={x} is odd", "the column rates={x} is odd"),
        ("units={}", "units={}"),
    ],
)  # fmt: skip
def test_arguments_become_options_and_the_rest_stays(said, shown):
    assert as_options(said) == shown
