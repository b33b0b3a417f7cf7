"""The outlook over the books: census, runs, reports."""
