"""Budget, degrees of freedom, several sweeps, verdict: the one place where an
uncertainty is made.

Pure, without numpy. Angles in rad, lengths in mm. None stands for infinite degrees of
freedom. JCGM 100:2008 (GUM) for the budget, JCGM 106:2012 and ISO 14253-1 for the
verdict.
"""
