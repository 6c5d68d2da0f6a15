"""Charts: what is to be seen (`picture`), on which paper (`paper`), and one drawing code for pages, mail and PDF."""
