"""The drawings: from plain data to coloured rows, without a terminal."""
