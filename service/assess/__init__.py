"""The daily judgement of every fan, brought up to date from the first day that changed."""
