"""What each kind of spreadsheet means for the record: examined row by row, then written in sets.

Steps without a transaction of their own; tracker/actions/imports.py opens it. Every module has
`examine(rows, context) -> Plan`: it reads the database in a fixed number of queries and writes nothing.
"""
