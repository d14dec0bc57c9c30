"""The verb `check`: rules, proof, counterexamples."""
