"""The commands of the studies, one module each: ``command``, and how its answer is laid out.

A command takes its options from ``asking`` (``moment_options``, ``state_options``, ``place_options``)
and ``running`` (``run_options``), and hands the request to ``running.run_study``::

    @click.command()
    @click.argument("me")
    @click.argument("them")
    @moment_options
    @state_options
    @place_options
    @run_options
    def command(me: str, them: str, **given: Any) -> None:
        run_study("coverage", lambda: {**situation_of(me, them, given), "delays": given["delays"]}, given, view)
"""
