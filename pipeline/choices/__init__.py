"""Bands to choose from: several plans that differ in what matters, without those that another beats.

``offers.offered`` says which bands are worth planning, ``planning.plan_choices`` plans them side by side in
processes and yields each as it is done, ``planning.unbeaten`` keeps those that no other beats in every
respect, ``sheet.sheet`` shows them.
"""
