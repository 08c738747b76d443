"""fewwire: a verifier for links that squeeze many controls onto few lines."""
