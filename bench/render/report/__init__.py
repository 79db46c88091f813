"""The report and the card: results, moves and charts as one HTML file that stands
alone."""
