"""What is printed: job ticket, parcel slip, wearing-in sheet."""
