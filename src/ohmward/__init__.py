"""ohmward: staged commissioning and test log for mains-powered DC supplies.

Data flows one way: design sheet -> expected readings -> procedure -> run -> log -> assessment.
Nothing is imported here, so that `ohmward --help` stays instant; import the sub-packages by name.
"""

__version__ = "0.1.0"
