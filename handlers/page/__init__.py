"""The contact's page: one plain page for one visit, under a private link."""
