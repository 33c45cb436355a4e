"""One function for each question a user asks: command, page, report, demo and notebook call the same one."""
