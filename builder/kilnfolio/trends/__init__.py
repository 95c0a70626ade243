"""What a mill's own charges teach: statistics across finished charges.

Everything here starts from one line for each finished charge (`past.PastCharge`), which is derived
once and kept, so that no page or command reads all reviews again::

    past_charge(graph, "HB-26-042")             # one line
    past_charges(graph, of_kiln("kiln-2"))      # a kiln's lines, oldest first, earlier charges too
"""
