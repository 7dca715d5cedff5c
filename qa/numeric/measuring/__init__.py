"""How far measuring and making can be trusted: spread, charts, gauges, trends, risks.

Values are numbers of any kind (Decimal, Fraction, int, float), taken exactly as they
stand: sums of squares lose nothing to cancellation (exact.py). A result that cannot be
had is None, and `why` of the result says why.
"""
