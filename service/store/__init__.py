"""What is kept: tables, migrations, and one module of queries per concept."""
