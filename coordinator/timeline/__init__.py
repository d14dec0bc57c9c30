"""The timeline of a run: who did what when, who waited for whom, and what set the pace."""
