"""bellcheck: the daily check of pupils' hearing technology, asked at the bell and chased until it is answered."""
