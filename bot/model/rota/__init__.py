"""The rota: whose shift begins, and whether the ways of reaching them were tried and confirmed."""
