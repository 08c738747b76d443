"""The best table or timing for a number of inputs, and the proof that there is none better."""
