"""The morning mail: its settings and secrets, the outbox in farm.db, and the posting."""

from scheduler.adapters.mail.settings import MailSettings, bare_address, mail_settings

__all__ = ["MailSettings", "bare_address", "mail_settings"]
