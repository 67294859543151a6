"""Measures the listening on recordings whose words are known: right, asked and silently wrong, and what it costs.

    Recording -> Case (in one noise) -> Trial (heard, timed) -> Outcome (decided) -> figures, tables, picture

Hearing takes minutes; everything after it is pure, so that other bars are tried without hearing again.
"""
