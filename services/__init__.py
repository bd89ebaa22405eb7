"""What a mechanic knows, in plain Python: the kinds of workshop service and the arithmetic behind them.

'services' means kinds of workshop service (hub oil, chain wear, general service); never 'service layer'.
Nothing here knows of pages, tables, clocks or networks.
"""
