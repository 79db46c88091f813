"""What is drawn, from plain data to coloured rows, without a terminal."""
