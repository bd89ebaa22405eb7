"""What failures tell of a part type: lives and their survivors, one file per method; plain arrays in, numbers and words out."""
