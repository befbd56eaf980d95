"""Fixledger: from the receiver logs of a telemetry flight to positions with an error that was tested.

    intake       receiver logs and registers become tidy tables; everything noticed is a message
    quality      which flights, columns and tags can be trusted, and how well the ground was listened to
    radio        strength against place: the signal model, fitted on beacons
    location     where each tag was, as a posterior, or a reason why nothing can be said
    calibration  fixes of beacons against their known places: how far every other fix can be trusted
    search       what the flights would have heard; fate: which tags to fetch; movement: what moved for certain
    simulate     flights and tags whose truth is known; exchange: files for other programs
    figures, report   drawings, tables and words in self-contained pages
    survey, stages, run   the survey file, the four notebooks behind their thin cells, and what runs them and why

Importing this package loads nothing: each part is imported by name (`from pipeline.location import ...`).
"""
