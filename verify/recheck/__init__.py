"""Checks proofs without whoever found them: a reading of the language of its own, as SMT-LIB 2."""
