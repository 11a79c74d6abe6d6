"""In distribution or not: fitting the joint probability, judging it. May not: have an acceptance rule of its own."""
