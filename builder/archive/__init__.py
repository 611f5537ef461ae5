"""What only many builds together can tell: index, likeness, comparison, where a part was used."""
