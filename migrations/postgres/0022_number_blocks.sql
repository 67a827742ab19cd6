-- 0022 number_blocks (postgres)
--
-- Each customer's things are numbered in a block of their own, so that nobody reads off the gaps between their numbers how
-- much others add. Rows: one for each customer but the first, with a block drawn by chance for what is added from now on.
-- What there is keeps its number.

-- +goose Up

-- A block holds a thousand million numbers, from block times that on. Counters of a block stand in id_counters as the kind,
-- a space and the block.
CREATE TABLE number_blocks (
    customer_id BIGINT PRIMARY KEY,
    block BIGINT NOT NULL
);
CREATE UNIQUE INDEX number_blocks_block ON number_blocks (block);
INSERT INTO number_blocks (customer_id, block) SELECT customer_id, 1 + floor(random() * 3999999)::bigint FROM chains
    WHERE customer_id > (SELECT coalesce(min(customer_id), 0) FROM chains WHERE customer_id > 0);
