"""Who may do what, how often, and from where: keys and their scopes, rates, addresses, other origins, signatures."""
