"""How an answer looks: text, data, page and pictures. Computes nothing."""
