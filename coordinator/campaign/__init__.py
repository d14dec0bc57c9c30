"""The campaign: generated cases against the real core and simulated arms, judged from outside.

The oracles share no code with the core: they read messages, what people do and what steel shows.
Whoever knows the simulated arms hands them in as a `Stage`; nothing here imports them.
"""
