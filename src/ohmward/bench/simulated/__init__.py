"""A bench that measures nothing real: a simulated supply, and SCPI meters on loopback that read it.

Whatever comes from here is marked as simulated: in `*IDN?`, in the meters file, and in the run.
"""
