"""What several rooms know together: desks, queues, the pair page, the order form, acts, search. No tables."""
