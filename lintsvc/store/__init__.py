"""What is kept: records in SQLite or PostgreSQL, blobs in a folder or S3, and the queue's Redis."""
