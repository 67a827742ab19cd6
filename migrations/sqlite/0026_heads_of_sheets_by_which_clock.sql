-- 0026 heads_of_sheets_by_which_clock (sqlite)
--
-- Isolation point and permit noted on a device without a network: by that device's clock, how far it was off, and when they arrived.
-- NULL: noted on a screen, or before this was kept.

-- +goose Up

ALTER TABLE job_sheets ADD COLUMN head_device_id BIGINT;
ALTER TABLE job_sheets ADD COLUMN head_device_at BIGINT;
ALTER TABLE job_sheets ADD COLUMN head_offset_us BIGINT;
ALTER TABLE job_sheets ADD COLUMN head_sent_offset_us BIGINT;
ALTER TABLE job_sheets ADD COLUMN head_arrived_at BIGINT;
