"""The mural: picture to cells, colours within stock, lines of dominoes, the standing set."""
